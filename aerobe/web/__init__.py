"""The app in the hand: pages for phone and desk, served from the brewer's own machine."""

from aerobe.web._app import create_app
from aerobe.web._serve import ServePlan, plan_serving, serve
from aerobe.web._serve_settings import ServeSettings
from aerobe.web._state import WebState, open_state

__all__ = ["ServePlan", "ServeSettings", "WebState", "create_app", "open_state", "plan_serving", "serve"]
