"""Long trials: many hands on the last piece, and a program killed in the middle. Tests run them in small."""
