"""Tasks of the service itself."""

from resurf.heartbeat import heartbeat_task

__all__ = ["heartbeat_task"]
