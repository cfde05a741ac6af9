"""Gunicorn in production: what containers, systemd and supervisor start."""

import os

bind = os.environ.get("SLABCAST_BIND", "127.0.0.1:8000")
workers = int(os.environ.get("WEB_CONCURRENCY", "2"))
worker_class = "gthread"
threads = 8
# The program is loaded once and shared by forking. deploy/wsgi.py leaves no connection open.
preload_app = True
timeout = 60  # a page with a long search; the plan is worked out elsewhere
graceful_timeout = 25  # below the 30 s after which a supervisor kills
keepalive = 20  # longer than the proxy keeps a connection unused
# A leak, should there be one, ends with the worker; jitter keeps them from ending together.
max_requests = 5000
max_requests_jitter = 500
control_socket_disable = True
# Requests are logged by deploy/logs.py, which leaves secret addresses out.
accesslog = None
errorlog = "-"
