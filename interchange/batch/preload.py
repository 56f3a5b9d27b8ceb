"""What every worker needs, imported once in the process that workers are forked from."""

import interchange.api
import interchange.formats.wfdb
import interchange.requests
import interchange.vocabulary  # noqa: F401
