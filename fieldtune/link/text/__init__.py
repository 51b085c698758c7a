"""From bytes to the values of one line: what the robot printed, in the robot's own units, nothing weighed yet.

The path of a chunk of bytes:

1. ``framing`` (``Framer.read``) cuts it into lines, counts them and keeps the last ones raw. ``line_wraps`` joins those
   that are broken after so many bytes.
2. Lines that are all alike are read together. ``checksums`` checks ``$payload*HH`` of all at once, and ``layouts``
   decodes them by the names, or the number of columns, of the last line that was read by itself. Lines in words go
   through ``loose_layouts``. Both give a ``LineTable``. A single odd byte sends the chunk on to step 3.
3. The others are read one by one. ``framing`` looks for ``$`` and ``*``, checks the sum and passes the payload on.
4. ``line_format`` (``LineFormat``) tells name=value, JSON and bare columns apart, line by line. ``bare_columns`` knows
   which column is which field, by the profile or by a row of names.
5. ``wire_numbers`` reads numbers that aren't plain: marks between thousands, decimal commas, units behind them. One
   that can be read in two ways is set aside, and the rest of its line counts. ``hexadecimal`` learns which whole
   numbers are printed in base 16.
6. The result is a ``WireValues`` (``wire_values``): our names, the values as sent, None for what isn't there.

A line that step 4 refuses gets a second chance. A row of column names goes to ``bare_columns``. Else ``line_patterns``
takes out the numbers and the word for the robot's state, and counts how often what is left, the form, comes: damage
looks different each time, a program's lines don't. Only a form that keeps coming is read loosely
(``line_format.LooseReader``), with tags, tuples and second numbers made name=value by ``raw_pairs``. What is still
refused is counted by its cause; as damage only if its form is rare and it isn't words for a person.

``raw_pairs`` serves ``troubleshooting`` as well, which looks for the robot's own names in raw lines. ``shown_lines``
makes raw lines harmless before a screen shows them.
"""
