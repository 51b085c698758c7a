"""The commands, one file a family; each has ``add(commands)``, which declares them."""
