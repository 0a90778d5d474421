"""Pictures -> target images: read a picture, find the printed targets, locate them, first poses."""
