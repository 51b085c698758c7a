"""From the values of lines to samples: in SI units, placed in time, and what can't be true taken out.

Each line is weighed against the last one that was believed, of which ``line_state`` keeps what counts. The path of a
chunk's lines begins in ``decoder`` (``LineDecoder.take_all``):

1. ``line_order`` takes out lines without a clock that a network delivers late or twice, and counts missing ones, by the
   wheel's counter.
2. ``arrival_clock`` hears when the chunk arrived, and times lines that bring no usable clock.
3. Lines of a table go on together. ``even_lines`` weighs them in one loop as long as each plainly follows the one
   before; ``line_table`` does so in arrays, from 128 lines on. The first that does not follow goes on with step 4.
4. ``line_weighing`` (``LineWeigher.take``) weighs the others one by one:

   - ``derived_values`` turns a position into counts, and the time of a turn into rpm.
   - ``plausibility`` (``Continuity``) puts readings into SI and names those that this robot can't produce.
     ``no_reading`` tells the number that a sensor sends for nothing from damage.
   - ``clock_judge`` compares the robot's clock with arrival, with ``clock_steps`` for coarse ones; ``clock`` reads it
     over its roll-over, or gives it up.
   - ``counter_width`` learns how many bits the counter has.
   - ``two_robots`` sees whether lines follow the last but one instead of the last.
   - Own rpm: ``dead_rpm`` knows what only a dead encoder or a hanging program prints, and asks ``zeros_between``
     about zeros on every few lines; ``rpm_falls`` what no wheel does.
     ``nominal_time`` corrects a program that divides by a time it doesn't keep.
   - ``reading_age`` learns how old a count may be when it is printed.
   - ``Continuity.fault`` says whether clock, turns, own rpm and battery follow. If so, the line is believed.

5. A line that does not follow is held. ``line_changes`` works out what would be so if it were true: a restart, a gap, a
   jump of counter or clock, another speed. The next line that has such a reading decides. On a damaged line it takes
   the next two, where it is the clock, or own rpm far off.
6. ``SampleChooser`` (``link/samples.py``) thins fast lines to some 150 samples a second, and passes over none that
   tells of a shot or a break.

``Line`` (``link/line.py``) also asks, sample by sample: ``no_reading.DistanceCodes`` for distances that are codes,
``counter_doubts`` for counters that tell no speed, ``battery_doubts`` for voltages that are none (``standing_value``
tells a reading that no longer changes, here and of own rpm), ``limited_rpm`` for own rpm that is cut off,
``setpoint_unit`` for a setpoint that can't be in rpm. ``no_speed`` has the words.
"""
