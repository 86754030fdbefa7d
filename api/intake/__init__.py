"""Reads any logger's file: ``look`` says how it is understood and what must be asked, ``blocks`` gives its readings.

Must not do: keep, judge or convert anything; know a store, a clock or a log.
"""
