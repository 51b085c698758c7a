"""The screens: the only room that imports Textual."""
