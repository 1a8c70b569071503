"""How much memory a child process of a test took."""

PEAK_MIB = '''
def peak_mib():
    """Most memory (MiB) of this program. Linux keeps ru_maxrss across exec, so that it starts at the peak of the test
    process it was forked from; VmHWM starts anew."""
    import resource, sys
    try:
        lines = open("/proc/self/status").read().splitlines()
    except OSError:
        unit = 2**20 if sys.platform == "darwin" else 2**10
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
    return next(int(line.split()[1]) / 2**10 for line in lines if line.startswith("VmHWM"))
'''
"""Source of a function for code that is given to ``python -c``."""
