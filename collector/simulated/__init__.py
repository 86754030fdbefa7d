"""An invented room of tanks: a physical model whose probes speak through pseudo-terminals.

Must not do: know the service; it gives lines to the serial driver as real probes do.
"""
