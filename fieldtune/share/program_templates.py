"""Templates of the robot-program sources: @name@ is filled in, @if volts/plain ... @end kept where it applies."""

JAVA = """/*
@header@
 */
public final class @class@ {
    /** Nearest and farthest distance of the table, metres. */
    public static final double NEAREST_M;

    public static final double FARTHEST_M;

@if volts
    /** Battery voltage that the table is for, and the highest power that the robot takes. */
    public static final double TABLE_VOLTS = @volts@;

    public static final double HIGHEST = @high@;

@end
    private static final double[] DISTANCE_M = {
@distances@
    };

    private static final double[] SETPOINT = {
@setpoints@
    };

    private static final double[] SLOPE = {
@slopes@
    };

    static {
        NEAREST_M = DISTANCE_M[0];
        FARTHEST_M = DISTANCE_M[DISTANCE_M.length - 1];
    }

    private @class@() {}

    /** Whether the table covers this distance, metres. */
    public static boolean inRange(double distanceM) {
        return distanceM >= NEAREST_M && distanceM <= FARTHEST_M;
    }

@if volts
    /**
     * Power in @unit@ for a distance in metres at this battery voltage, held at the ends of the table
     * and never above HIGHEST. A voltage below half the table's is no reading: the table's own is taken.
     */
    public static double setpoint(double distanceM, double batteryVolts) {
        double volts = batteryVolts >= TABLE_VOLTS / 2 ? batteryVolts : TABLE_VOLTS;
        double power = setpointAtTableVolts(distanceM) * TABLE_VOLTS / volts;
        return power > HIGHEST ? HIGHEST : power;
    }

    private static double setpointAtTableVolts(double distanceM) {
@end
@if plain
    /** Setpoint in @unit@ for a distance in metres, held at the ends of the table. */
    public static double setpoint(double distanceM) {
@end
        double d = Math.max(NEAREST_M, Math.min(FARTHEST_M, distanceM));
        int k = 0;
        while (k < DISTANCE_M.length - 2 && d >= DISTANCE_M[k + 1]) {
            k++;
        }
        double width = DISTANCE_M[k + 1] - DISTANCE_M[k];
        double u = (d - DISTANCE_M[k]) / width;
        double bend = (SLOPE[k] * (1 - u) - SLOPE[k + 1] * u) * width;
        double rise = SETPOINT[k + 1] - SETPOINT[k];
        return SETPOINT[k] + u * u * (3 - 2 * u) * rise + u * (1 - u) * bend;
    }
}
"""

CPP = """@header@
#ifndef @guard@
#define @guard@

namespace @name@ {

constexpr int count = @count@;
constexpr double distance_m[count] = {
@distances@
};
constexpr double setpoints[count] = {
@setpoints@
};
constexpr double slopes[count] = {
@slopes@
};
constexpr double nearest_m = distance_m[0];
constexpr double farthest_m = distance_m[count - 1];
@if volts

/// Battery voltage that the table is for, and the highest power that the robot takes.
constexpr double table_volts = @volts@;
constexpr double highest = @high@;
@end

/// Whether the table covers this distance, metres.
inline bool in_range(double distance) {
  return distance >= nearest_m && distance <= farthest_m;
}

@if volts
inline double setpoint_at_table_volts(double distance) {
@end
@if plain
/// Setpoint in @unit@ for a distance in metres, held at the ends of the table.
inline double setpoint(double distance) {
@end
  const double far = distance > farthest_m ? farthest_m : distance;
  const double d = far < nearest_m ? nearest_m : far;
  int k = 0;
  while (k < count - 2 && d >= distance_m[k + 1]) {
    ++k;
  }
  const double width = distance_m[k + 1] - distance_m[k];
  const double u = (d - distance_m[k]) / width;
  const double bend = (slopes[k] * (1 - u) - slopes[k + 1] * u) * width;
  const double rise = setpoints[k + 1] - setpoints[k];
  return setpoints[k] + u * u * (3 - 2 * u) * rise + u * (1 - u) * bend;
}

@if volts
/// Power in @unit@ for a distance in metres at this battery voltage, held at the ends of
/// the table and never above highest. A voltage below half the table's is no reading:
/// the table's own is taken.
inline double setpoint(double distance, double battery_volts) {
  const double volts = battery_volts >= table_volts / 2 ? battery_volts : table_volts;
  const double power = setpoint_at_table_volts(distance) * table_volts / volts;
  return power > highest ? highest : power;
}

@end
}  // namespace @name@

#endif  // @guard@
"""

PYTHON = '''"""
@header@
"""

import math

DISTANCE_M = (
@distances@
)
SETPOINT = (
@setpoints@
)
SLOPE = (
@slopes@
)
@if volts
TABLE_VOLTS = @volts@
HIGHEST = @high@
@end


def in_range(distance_m):
    """Whether the table covers this distance, metres."""
    return DISTANCE_M[0] <= distance_m <= DISTANCE_M[-1]


@if volts
def setpoint(distance_m, battery_volts):
    """Power in @unit@ for a distance in metres at this battery voltage.

    Held at the ends of the table and never above HIGHEST. A voltage below half the
    table's is no reading: the table's own is taken.
    """
    volts = battery_volts if battery_volts >= TABLE_VOLTS / 2 else TABLE_VOLTS
    power = _setpoint_at_table_volts(distance_m) * TABLE_VOLTS / volts
    return HIGHEST if power > HIGHEST else power


def _setpoint_at_table_volts(distance_m):
@end
@if plain
def setpoint(distance_m):
    """Setpoint in @unit@ for a distance in metres, held at the ends of the table."""
@end
    if math.isnan(distance_m):
        return distance_m
    d = max(DISTANCE_M[0], min(DISTANCE_M[-1], distance_m))
    k = 0
    while k < len(DISTANCE_M) - 2 and d >= DISTANCE_M[k + 1]:
        k += 1
    width = DISTANCE_M[k + 1] - DISTANCE_M[k]
    u = (d - DISTANCE_M[k]) / width
    bend = (SLOPE[k] * (1 - u) - SLOPE[k + 1] * u) * width
    rise = SETPOINT[k + 1] - SETPOINT[k]
    return SETPOINT[k] + u * u * (3 - 2 * u) * rise + u * (1 - u) * bend
'''
