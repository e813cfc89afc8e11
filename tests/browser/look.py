"""A person's eyes on a page, and what they miss: shared by the tests that walk a page step by step."""

import time

PATIENCE_S = 20


class Look:
    """Complaints about what a browser shows; a page is waited for, not slept for."""

    def __init__(self, browser, failures):
        self.browser, self.failures = browser, failures

    def check(self, good, complaint):
        if not good:
            self.failures.append(complaint)

    def until(self, probe, complaint):
        """Whether it comes true in time; otherwise the complaint (or what it gives when asked) is kept."""
        end = time.monotonic() + PATIENCE_S
        while not probe():
            if time.monotonic() > end:
                self.failures.append(complaint() if callable(complaint) else complaint)
                return False
            time.sleep(0.05)
        return True
