"""Every page, for every role that may see it: by axe at two sizes and in two schemes, narrow, and by keyboard."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from academy.models import Role
from academy.permissions import Permission
from tests.browser.conftest import DESK, PASSWORD, PHONE, give_password, sign_in, watch
from tests.factories.centres import NOON, BusyCentre, busy_centre, empty_centre
from tests.site.pages import ASKED, PAGES, STATES
