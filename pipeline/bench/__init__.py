"""The ruler: how right and how fast Matside is, on clips with known joints."""
