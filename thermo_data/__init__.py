"""Tables only; read through ``pyrobal.thermo.files``."""
