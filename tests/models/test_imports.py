"""The models are light: what is heavy is imported by the first question that needs it."""

import subprocess
import sys

HEAVY = ("astral", "numpy", "pandas", "scipy", "statsmodels")
ASK = f"""
import importlib, pkgutil, sys, swapbell_models
for module in pkgutil.walk_packages(swapbell_models.__path__, "swapbell_models."):
    if not module.name.startswith(("swapbell_models.optics", "swapbell_models.forecasting.")):
        importlib.import_module(module.name)
print(*(name for name in {HEAVY} if name in sys.modules))
"""


def test_importing_the_models_imports_nothing_heavy() -> None:
    # optics is left out: the device, which it serves, has NumPy anyway; and so are the inner parts of a forecast.
    done = subprocess.run([sys.executable, "-c", ASK], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
