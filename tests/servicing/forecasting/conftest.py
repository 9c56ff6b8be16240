"""Laws are tried without a clock: a busy machine is no fault."""

from hypothesis import settings

settings.register_profile("without a clock", deadline=None)
settings.load_profile("without a clock")
