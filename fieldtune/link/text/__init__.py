"""From bytes to the fields of a line: its end, its checksum, its layout, and the numbers in it as people print them."""
