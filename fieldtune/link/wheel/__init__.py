"""The wheel's speed: what is shown of it, and in what shots are looked for.

``Line`` (``link/line.py``) takes each sample through this room, and then to ``shots``.

A robot that sends its own rpm:

1. ``smoothed_rpm`` finds out whether the program smooths it, and undoes that for shots alone. Whole counts in the
   readings tell (``reading_grid``), else the shape of dips (``smoothed_dips``, with the templates of
   ``smoothing_fit``).
2. ``rpm_filter`` makes the rpm as sent quiet, to be shown: the mean over the longest window that agrees with all
   shorter ones. ``rpm_steps`` tells it whether readings are whole counts or times between edges, ``excursion`` holds
   back a reading that the next may take back. ``wheel_points`` asks both as well.

A robot that sends counts (``counted_speed``, which asks ``counter_noise`` whether they are a wheel's):

1. ``wheel_speed`` (``SpeedTrack``) fits a slope to the newest counts, as the speed that is shown.
2. Its ``placed`` says when each new count came; in these shots are looked for. ``refresh`` finds the times of a counter
   that isn't read once a line.

Both:

- ``seldom_read`` finds programs that read their encoder more seldom than they print.
- ``shown_speed`` decides for how long a speed is shown.
- ``wheel_figures`` keeps the last ten seconds, and tells how well the setpoint is held, spin-up, rate of fire and jams.

What ``shots`` calls here:

- ``wheel_points`` keeps turns over time, by counts or summed from own rpm; ``speed_cells`` makes mean speeds in even
  cells of them. Where readings become older or newer than their lines it goes on evenly.
- ``wheel_noise`` learns how these go up and down by themselves, and makes their errors independent.
- ``wheel_lags`` has the templates: turns that a wheel lags at a shot, slowed, lowered, raised or swinging.
- ``release_speed`` tells the speed at which an element began to take it.
"""
