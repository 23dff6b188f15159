"""The console's pages: each module a few routes, each template beside them."""
