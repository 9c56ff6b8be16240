"""The science of accumulation: how full a buried system is, and when it needs a visit.

Pure numpy: litres, millimetres, years and dates in, frozen dataclasses out. Nothing here
knows Django; the site reaches it through ``servicing/forecasts.py`` only.
"""
