"""One worked example of each calculator, done by hand: its figures, and the result to the digits shown."""

from rigs.metrology.computed.calculator import Figures

MAKES = (0.97, 0.97, 0.95, 0.94, 0.95)
BREAKS = (0.72, 0.73, 0.72, 0.71, 0.72)
TIMED = {"volume": 0.05, "time": 75.0, "calorific_value": 39.5}
FOOT = {"volume": 1.0, "time": 47.0, "calorific_value": 1040.0}
# 14 m of 22 mm and 6 m of 15 mm copper, with a G4 meter.
PIPEWORK = {"lengths": (14.0, 6.0), "unit_volumes": (0.00032, 0.00014), "allowance": 1.1, "meter": 0.008}

WORKED: dict[str, tuple[Figures, float]] = {
    "mean": ({"readings": MAKES}, 0.956),
    "difference": ({"high": 21.3, "low": 20.6}, 0.7),
    "ratio": ({"of": 0.66, "to": 1.58}, 0.418),
    "percentage-drop": ({"before": 1.6, "after": 0.6}, 62.5),
    "hysteresis": ({"makes": MAKES, "breaks": BREAKS}, 0.236),
    "margin": ({"running": 1.58, "makes": MAKES}, 1.653),
    "gas-rate": ({"volume": 0.05, "time": 75.0}, 2.40),
    "gas-rate-imperial": ({"volume": 1.0, "time": 47.0}, 76.6),
    "gross-heat-input": (TIMED, 26.3),
    "gross-heat-input-from-rate": ({"rate": 2.4, "calorific_value": 39.5}, 26.3),
    "gross-heat-input-imperial": (FOOT, 23.3),
    "net-heat-input": ({**TIMED, "gross_to_net": 1.11}, 23.7),
    "net-heat-input-imperial": ({**FOOT, "gross_to_net": 1.11}, 21.0),
    "net-from-gross": ({"gross": 26.3, "gross_to_net": 1.11}, 23.7),
    "corrected-volume": ({"volume": 100.0, "factor": 1.02264}, 102.264),
    "volume-correction": ({"atmospheric": 1013.25, "gauge": 0.0, "temperature": 25.0}, 0.966),
    "pipe-volume": ({"bore": 20.0, "length": 10.0}, 3.14),
    "installation-volume": (PIPEWORK, 0.0139),
    "without-leads": ({"resistance": 0.6, "leads": 0.3}, 0.3),
    "winding-resistance": ({"resistance": 52.0, "measured_at": 20.0, "wanted_at": 60.0}, 60.2),
    "pt100-temperature": ({"resistance": 123.24}, 60.0),
    "pt100-resistance": ({"temperature": 60.0}, 123.24),
    "pt100-error": ({"resistance": 123.24, "temperature": 20.0}, 40.0),
    "ntc-10k-temperature": ({"resistance": 5372.0}, 40.0),
    "ntc-10k-resistance": ({"temperature": 60.0}, 2535.0),
    "ntc-10k-error": ({"resistance": 5372.0, "temperature": 39.4}, 0.6),
    "ntc-12k-temperature": ({"resistance": 6652.0}, 40.0),
    "ntc-12k-resistance": ({"temperature": 60.0}, 3252.0),
    "ntc-12k-error": ({"resistance": 6652.0, "temperature": 40.5}, -0.5),
    "ntc-b-temperature": ({"resistance": 2486.2, "nominal": 10000.0, "b": 3950.0}, 60.0),
    "ntc-b-resistance": ({"temperature": 25.0, "nominal": 10000.0, "b": 3950.0}, 10000.0),
    "ntc-b-value": (
        {"cold": 25.0, "warm": 60.0, "cold_resistance": 10000.0, "warm_resistance": 2535.0},
        3894.8,
    ),
}
