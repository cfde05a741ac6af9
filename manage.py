#!/usr/bin/env python
"""Entrance for every command: `python manage.py help` lists them."""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    from django.conf import settings
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        settings.INSTALLED_APPS  # noqa: B018  reads the settings, so that a mistake shows here
    except ImproperlyConfigured as mistake:
        sys.exit(f"The settings are not complete: {mistake}")
    execute_from_command_line(sys.argv)
