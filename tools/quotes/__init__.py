"""What the pages quote of the program: the parts of tools/make-docs."""
