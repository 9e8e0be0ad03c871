"""A horn as data. (Filled in with the acoustic model.)"""
