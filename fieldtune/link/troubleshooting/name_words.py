"""Words in the names that robot programs give their readings, and the kind of reading that each tells.

All are common practice: what people call such readings, in English and in some of their own languages. A letter with an
accent arrives here as the mark that raw lines have in its place.
"""

from __future__ import annotations

import re
from collections.abc import Callable

_IN_OTHER_LANGUAGES = (
    ("time", r"^(zeit|laufzeit|temps|tiempo|tempo|zaman|s[u·]re)(_?(ms|us|s))?$"),
    (
        "setpoint",
        r"^(soll|ziel(?!_?(dist|entf|abst|weite))|vorgabe|gew(ue|·)nscht|w(ue|·)nsch|consigne|consigna|objectif|objetivo|obiettivo|hedef"
        r"|istenen|alvo)"
        r"|_(soll\w*|ziel|consigne|consigna|objectif|objetivo|obiettivo|hedef|cible|alvo)$|^(vitesse|tours)_cible|^cible$",
    ),
    ("battery", r"akku|spannung|^tension(?!er)|_tension|^tensi(o|·)n|^tens(a|·)o|^tensione|^pila?$|gerilim|^ak[u·]"),
    ("current", r"^strom|_strom$|courant|corr?iente|corrente|ak[i·]m"),
    ("distance", r"abstand|entfernung|^port(e|·)e$|mesafe|uzakl(i|·)k|alcance"),
    ("power", r"leistung|puissance|potencia|potenza|^g[u·][c·]$"),
    ("counts", r"impuls|z(ae|·)hler|^codeur|contador|saya[c·]"),
    (
        "speed",
        r"drehzahl|geschwindigkeit|schwungrad|vitesse|^ist(wert)?$|^tours$|r(e|·)gime|giri|devir|^h[i·]z|_h[i·]z$",
    ),
)
KINDS: tuple[tuple[str, str], ...] = (
    ("", r"(^|_)(err|error|fehler|erreur|hata|diff|delta|max|min|limit|peak|prev|last|old|loops?)(_|$)"),
    *_IN_OTHER_LANGUAGES,
    ("time", r"^(t|ts|time|timestamp|clock|millis|micros|ms|us|uptime|now)(_?(ms|us|s|millis|micros))?$"),
    ("speed2", r"(wheel|fly|rpm|speed|vel|top|upper|right|shooter)_?\w*(2|b|top|upper|right)$|^(rpm|speed|vel)2$"),
    (
        "setpoint",
        r"set_?p|target_?(rpm|rps|speed|vel|power|pos|draw)|^target$|goal|wanted|desired"
        r"|^(set|cmd|ref|sp|tgt|des)_?(rpm|rps|spd|speed|vel\w*)?$|_(set|cmd|ref|sp|tgt|target)$",
    ),
    ("speed", r"(^|_)(c|counts?|ticks?|pulses?|edges?|units?)_?(p(er)?_?)?(\d+_?ms|(?<=p|r|_)(s(ec\w*)?|min))$"),
    ("speed", r"(^|_)k?hz$"),
    (
        "period",
        r"(^|_)(period|(rev|turn|count|tick|edge|pulse)_?(period|time|width|dt))(_?(us|ms|micros|millis))?$"
        r"|^(rev|turn)_(us|ms)$|us_per_(rev|turn|count|tick|edge)$",
    ),
    (
        "counts",
        r"(^|_)(rots?|rotations|turns|revs|revolutions)$|(^|_)(enc\w*|pos|position|wheel|motor|fly\w*)_(deg|rad)\w*$",
    ),
    ("battery", r"batt?|volt|^m?v(in|bus|cc|b)?$|^bus|^u$"),
    ("current", r"curr(?!\w*(rpm|rps|speed|vel))|amp|^i(_?m?a)?$"),
    ("distance", r"dist|range|^d$|ultra|sonar|sonic|echo|lidar|tof"),
    ("power", r"power|pwm|duty|output|throttle|^out$|^pwr"),
    ("draw", r"draw|pull|stretch|cock|plunger"),
    ("fired", r"fired?(_|$)|shots?(_|$)|shoot(?!er)|launch(?!er)|release|trigger"),
    ("hood", r"hood|^angle$|pitch|elev"),
    ("turret", r"turret|yaw"),
    ("counts", r"count|enc|tick|pulse|(^|_)pos(ition)?$"),
    ("speed", r"rpm|speed|vel|omega|^w(heel)?\d?$|fly|wheel|rps|^n$|^(actual|measured|meas|act)(_?value)?$|^spd|^pv$"),
)
"""Words in the names that people give, tried in this order (common practice); none: no reading of the moment."""
UNITS: tuple[tuple[str, str], ...] = (
    ("ms", r"(_|\b)m(illi)?s(ec)?$|millis"), ("µs", r"(_|\b)us$|micros"), ("mV", r"mv$|millivolt"),
    ("mA", r"ma$|milliamp"), ("mm", r"mm$|millimet(er|re)s?$"), ("cm", r"cm$|centimet(er|re)s?$"),
    ("in", r"(_|\b)in$|(_|\b)inch(es)?(_|$)"), ("ft", r"(_|\b)(ft|foot|feet)(_|$)"), ("m", r"_m(et(er|re)s?)?$"),
    ("rad/s", r"rad_?(s|ps|per_?s\w*)?$|omega"),
    ("turns/s", r"rps$|rev_?s$|turns_?s$"), ("rpm", r"rpm"), ("deg/s", r"deg_?(s|ps)$"), ("%", r"pct$|percent"),
    ("rad", r"rad$"), ("deg", r"deg$"), ("V", r"(_|\b)v$"), ("A", r"(_|\b)a(mps?)?$"),
)  # fmt: skip
"""Units that a name tells."""
PARTS: tuple[tuple[str, Callable[[re.Match[str]], float]], ...] = (
    (r"[_ ]?x_?(10{1,4})_?$", lambda found: 1 / float(found[1])),
    (r"(?<=_)q(?:\d{1,2}[_.]?)?(\d{1,2})$", lambda found: 0.5 ** float(found[1])),
    (r"(?<=_)c(?=v$)", lambda _: 0.01),
    (r"(?<=_)d(?=v$)", lambda _: 0.1),
)
"""How a name says that the number is so many times the reading: tenfold, in fixed point (Q8.8: the last number is that
of the bits behind the point), in hundredths or tenths of a volt (common practice)."""
