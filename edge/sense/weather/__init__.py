"""Weather from a station's Modbus line or from humidity and temperature chips of this computer."""

from edge.sense.weather.station import Reading, Station, StationFault, open_station

__all__ = ["Reading", "Station", "StationFault", "open_station"]
