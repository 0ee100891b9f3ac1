"""The pure core: facts in, events out; no clock, network, disk or chance."""
