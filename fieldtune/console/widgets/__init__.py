"""Pieces that screens are made of."""
