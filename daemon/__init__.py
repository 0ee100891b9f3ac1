"""The shell: settings, clock, broker, journal, alerts, record, page, command line."""

VERSION = "0.1.0"
