"""What the log leaves out."""

import logging
import re

# The secret of an address: of an estimate, a commission, an invitation, a calendar, a new password.
_SECRET = re.compile(r"/(e|c|join|calendar|sign-in/new-password/[^/\s]+)/[^/\s]+")


class WithoutSecrets(logging.Filter):
    """Addresses are logged when something is refused; whoever reads the log must not get in with them."""

    def filter(self, record: logging.LogRecord) -> bool:
        words = record.getMessage()
        without = _SECRET.sub(r"/\1/…", words)
        if without != words:
            record.msg, record.args = without, ()
        return True
