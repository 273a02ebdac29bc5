"""What goes wrong, with the exit codes of the program."""

BAD_INPUT = 2
BAD_OUTPUT = 3


class PlotError(Exception):
    """One line for the user and an exit code."""

    def __init__(self, text, status=BAD_INPUT):
        super().__init__(text)
        self.status = status
