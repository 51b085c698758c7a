"""Air against the published tables: CIPM-2007, IEC 61094-2, U.S. Standard Atmosphere 1976."""

import numpy as np
import pytest

from fieldtune.physics import air


def test_iec_61094_table():
    """IEC 61094-2:2009, annex F, table F.1, set A: 23 degC, 101 325 Pa, 50 %; half a unit of the last printed digit."""
    state = air.humid_air(296.15, 101325.0, 0.5)
    assert float(state.density) == pytest.approx(1.1860848, abs=5e-8)
    assert float(state.sound_speed) == pytest.approx(345.86652, abs=5e-6)
    assert float(state.viscosity) == pytest.approx(1.826566e-5, abs=5e-12)


def test_cipm_2007_parts():
    """Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149, appendix A, evaluated at 20 degC, 101 325 Pa, 50 %."""
    fraction = air.vapour_fraction(293.15, 101325.0, 0.5)
    assert float(air.saturation_pressure(293.15)) == pytest.approx(2339.163, abs=5e-4)
    assert float(fraction) == pytest.approx(0.0115893, abs=5e-8)
    assert float(air.compressibility(293.15, 101325.0, fraction)) == pytest.approx(0.99961477, abs=5e-9)


def test_cipm_2007_densities():
    """The same equation over its range: (Pa, degC, share) and kg/m^3 to the last printed digit."""
    rows = np.array(
        [
            (101325, 20, 0.0, 1.204557),
            (101325, 20, 0.5, 1.199314),
            (100000, 20, 0.5, 1.183557),
            (101325, 15, 0.0, 1.225521),
            (75000, 20, 0.5, 0.886277),
            (90000, 25, 0.3, 1.047702),
            (110000, 15, 0.8, 1.324273),
            (101325, 27, 0.6, 1.167021),
        ]
    )
    got = air.density(rows[:, 1] + 273.15, rows[:, 0], rows[:, 2])
    np.testing.assert_allclose(got, rows[:, 3], rtol=0, atol=1e-6)


def test_standard_atmosphere():
    """U.S. Standard Atmosphere 1976 by geometric altitude, as two libraries (ambiance, fluids) agree on it to 7e-7."""
    state = air.standard_air([0, 500, 1000, 2000, 3000, 5000])
    expected = {
        "temperature": [288.150, 284.9003, 281.6510, 275.1541, 268.6592, 255.6755],
        "pressure": [101325.0, 95461.3, 89876.3, 79501.4, 70121.1, 54048.3],
        "density": [1.225000, 1.167273, 1.111660, 1.006554, 0.909254, 0.736429],
        "sound_speed": [340.294, 338.370, 336.435, 332.532, 328.584, 320.545],
        "viscosity": [1.789380e-5, 1.773657e-5, 1.757850e-5, 1.725982e-5, 1.693765e-5, 1.628248e-5],
    }
    # A relative 1e-6, and half a unit of the last digit where that is coarser (1.6e-6 for the speed of sound).
    for name, values in expected.items():
        np.testing.assert_allclose(getattr(state, name), values, rtol=2e-6, err_msg=name)


def test_standard_atmosphere_against_fluids():
    fluids = pytest.importorskip("fluids")
    for altitude in (0.0, 750.0, 2400.0, 9000.0):
        reference, own = fluids.ATMOSPHERE_1976(altitude), air.standard_air(altitude)
        assert float(own.density) == pytest.approx(reference.rho, rel=2e-6)
        assert float(own.viscosity) == pytest.approx(reference.mu, rel=2e-6)


def test_moist_air_is_lighter_and_cold_air_heavier():
    dry, moist, cold = (air.density(t, 101325.0, h) for t, h in ((300.0, 0.0), (300.0, 1.0), (280.0, 0.0)))
    assert moist < dry < cold


def test_broadcasts():
    assert air.humid_air(np.full((3, 1), 290.0), np.full(4, 1e5), 0.3).density.shape == (3, 4)
