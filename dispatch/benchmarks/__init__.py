"""Measurements that anybody can repeat; entered by `manage.py benchmark` only."""
