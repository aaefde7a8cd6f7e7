"""What each input sheet may hold, and how its text becomes facts and questions."""
