"""Tasks of the service itself."""

from resurf.heartbeat import heartbeat_task
from resurf.measures import measure_task

__all__ = ["heartbeat_task", "measure_task"]
