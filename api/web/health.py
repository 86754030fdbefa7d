"""Is the service itself well: health for watchers, metrics for collectors of metrics (Prometheus text format).

Must not do: say well when a part has stopped.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from prometheus_client import CollectorRegistry, Gauge, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from starlette.responses import JSONResponse, Response

router = APIRouter()


@router.get("/api/v1/health")
def get_health(request: Request) -> Response:
    """200 with each part's state, 503 when one is not well."""
    parts = request.app.state.service.health()
    well = all(part == "well" for part in parts.values())
    return JSONResponse({"status": "well" if well else "not well", "parts": parts}, 200 if well else 503)


@router.get("/metrics")
def get_metrics(request: Request) -> Response:
    """Counts and ages, one gauge each."""
    service = request.app.state.service
    now_ms = service.now_ms()
    room = service.read.room(now_ms)
    registry = CollectorRegistry()
    simple = {
        "intermolt_undelivered_messages": ("Messages waiting for delivery", len(room.undelivered)),
        "intermolt_refused_readings": ("Readings the service refused", room.refused_here),
        "intermolt_spool_waiting": ("Readings waiting in spools", sum(one.waiting for one in room.collectors)),
        "intermolt_spool_dropped": ("Readings dropped from full spools", sum(one.dropped for one in room.collectors)),
    }
    for name, (words, value) in simple.items():
        Gauge(name, words, registry=registry).set(value)
    age = Gauge("intermolt_reading_age_seconds", "Age of the newest reading", ["probe", "quantity"], registry=registry)
    last = Gauge("intermolt_reading_value", "Newest value, canonical unit", ["probe", "quantity"], registry=registry)
    alerts = Gauge("intermolt_standing_alerts", "Alerts that have not ended", ["tank", "kind"], registry=registry)
    for tank in room.tanks:
        for one in tank.latest:
            if one.time_ms is not None:
                age.labels(one.probe, one.quantity).set((now_ms - one.time_ms) / 1000)
            if one.value is not None and not one.quiet:
                last.labels(one.probe, one.quantity).set(one.value)
    if service.mqtt is not None:
        away = Gauge("intermolt_mqtt_turned_away", "Messages that could not be used", ["reason"], registry=registry)
        for reason, count in service.mqtt.counts.items():
            away.labels(reason).set(count)
    for alert in [*room.room_alerts, *(alert for tank in room.tanks for alert in tank.alerts)]:
        alerts.labels(alert.tank or "", alert.kind).inc()
    return Response(generate_latest(registry), media_type=CONTENT_TYPE_LATEST)
