"""Items, suppliers, depots, places, lots, movements and orders: records that know no other package."""
