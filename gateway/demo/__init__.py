"""The demo: two invented sites live through a salt-fog night, on this machine alone.

Real processes on loopback under one fast clock: a broker, the gateway, an edge daemon a site. What
is told comes from the gateway's API while it runs, and from the histories' files at the end.
"""
