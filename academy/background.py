"""A worker for jobs in a thread of this process: for the demo, which is one program to start and to stop."""

from threading import Thread

from django_tasks_db.management.commands.db_worker import Worker

INTERVAL_SECONDS = 1.0


def start_worker() -> Thread:
    """Start it. It ends with the process: what it was at falls silent, and is asked for anew."""
    thread = Thread(target=_worker().run, name="worker", daemon=True)
    thread.start()
    return thread


def _worker() -> Worker:
    return Worker(
        queue_names=["default"],
        interval=INTERVAL_SECONDS,
        batch=False,
        backend_name="default",
        startup_delay=False,
        max_tasks=None,
        worker_id="demo",
        excluded_queue_names=[],
    )
