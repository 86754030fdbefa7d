"""The way to the service that the room file names: HTTP, or a broker.

Must not do: connect; the first reading does.
"""

from __future__ import annotations

from collector.config import CollectorConfig
from collector.service import Service, Upstream


def upstreams(config: CollectorConfig, name: str) -> tuple[Upstream, Upstream]:
    """One way for readings and one for reports, so that a slow pack holds up no report; a broker serves both.

    Raises InputError for a broker's file that cannot be read.
    """
    if config.uplink == "mqtt" and config.room is not None and config.room.mqtt is not None:
        from collector.mqtt_line import Broker  # the library is only loaded where it is wanted
        from collector.mqtt_service import MqttService

        broker = Broker.of(config.room.mqtt, config.folder)
        both = MqttService(broker, config.room.room.name, name, config.pack_size)
        return both, both
    return Service(config.service, config.data), Service(config.service, config.data)
