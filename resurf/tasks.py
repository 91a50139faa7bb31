"""Tasks of the service itself."""

from resurf.heartbeat import heartbeat_task
from resurf.measures import measure_task
from resurf.retention import retention_task

__all__ = ["heartbeat_task", "measure_task", "retention_task"]
