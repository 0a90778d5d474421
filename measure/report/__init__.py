"""Views of the result document: text, drawing, paper. Nothing here computes a figure."""
