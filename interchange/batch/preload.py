"""What every worker needs, imported once in the process that workers are forked from."""

import numpy as np  # noqa: F401

import interchange.api
import interchange.batch.job
import interchange.formats.wfdb.reader
import interchange.receipt.text
import interchange.requests
import interchange.vocabulary  # noqa: F401
