"""The command line: each command has one module, which reads arguments, calls the work, and sets the exit code.

`main` imports only the module of the requested command. `options` holds the options that several commands share, and
the checks of their values. `help_pages` has the forms of their help. The work itself is in `app`, in a
module of the same name.
"""
