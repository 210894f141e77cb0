"""Wearlog: the record and the forecasts of a small oilseed mill."""

import os

# The matrices of the wear model are small: a second thread of the algebra library only waits for the first,
# and on a busy machine makes a forecast several times slower. Set before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
