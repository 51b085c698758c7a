"""Stands here so that every test finds the references in this folder."""
