"""From a site's history to what the trends take: columns, maintenance, register, periods."""
