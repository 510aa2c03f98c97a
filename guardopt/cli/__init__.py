"""The command line: commands, options, how answers are printed and how errors end the process.

It may import everything, heavy modules only inside the command that needs them. Nothing but `__main__` imports it.
Start with `commands`; the options that commands share are in `options`.
"""
