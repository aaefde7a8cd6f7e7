"""A cell that can be read in more than one way, or in none."""


class Doubt(ValueError):  # noqa: N818 - a doubt is the trade's word; the cell is asked about, nothing failed
    """What one cell holds can't be taken as it stands; a person must say what it means.

    Args:
        problem: what is wrong, as part of a sentence.
        suggestion: the value that would be right if the guess is right; empty when there is no guess.
    """

    def __init__(self, problem: str, suggestion: str = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.suggestion = suggestion
