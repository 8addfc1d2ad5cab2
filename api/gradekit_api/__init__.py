"""The shop's web service: its stock, its listings and what happened to them, over HTTP."""

from gradekit_api.app import create_app

__all__ = ["create_app"]
