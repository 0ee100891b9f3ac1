"""Adapters: bytes that probes publish in, readings or refusals out."""
