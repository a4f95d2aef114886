"""One module a command: read arguments, call, print, exit code.

`main` imports only the module of the command that is asked for; `options` holds the options that several commands share
and the checks of their values. The work itself is in `app`, in a module of the same name.
"""
