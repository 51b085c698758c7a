"""Shots from the wheel's course: where it may have dropped, how well a shot fits there, and what the dip was.

The path of a drop:

1. ``shot_detection`` (``ShotDetector.see``) takes each sample and gives it to ``drop_detection`` (``DropDetector``),
   or for a striker or arm to its own ``ReleaseDetector``, which sees a draw let go.
2. ``drop_detection`` adds it to the turns over time (``wheel/wheel_points``) and lets ``wheel/wheel_noise`` hear each
   stretch, so that it becomes known what the wheel does by itself.
3. ``drop_candidates`` (``CandidateFinder``) fits a drop a little behind the newest point. An instant at which it stands
   out more than at its neighbours is a candidate. A glance at four points spares most of these fits.
4. ``network_finder`` adds others, nearly a second behind: it asks ``shot_network``, a small neural network, about each
   instant. A shot found so may be older than one that is known already.
5. Candidates wait (``drop_candidates.Waiting``) and are looked at some times, with more of what came behind each time.
6. At each look ``drop_fit`` seeks when the drop began. Then it weighs a shot against a steady speed, a slow change, a
   lowered or raised setpoint and, where the speed rises at once and falls slowly, a drive that is switched on and off.
   ``lost_counts`` weighs it against counts that the encoder lost.
7. ``usual_shots`` says how deep this wheel's shots are, by the profile at first and by the shots before later, and how
   plainly one must show.
8. ``dip_rules`` (``answer``) decides on all of that and on what ``around_drop`` and ``one_step`` see, gathered in a
   ``Dip``: a shot, perhaps one, none, or not yet. While neither quiet stretches nor the course of earlier shots is
   known, a dip is at most asked about. One that is not plain waits in ``doubted_drops`` until the network has seen it:
   where that says no, it was none.
9. A shot teaches ``usual_shots``; ``wheel_noise`` forgets the stretch around it. Its speed is that of
   ``wheel/release_speed``, its depth comes from ``drop_fit``.
10. ``shot_detection`` brings it together with the robot's own ``fired``, numbers it or asks about it, and looks up
    behind the shot when the wheel was back.
"""
