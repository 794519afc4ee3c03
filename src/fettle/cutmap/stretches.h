// Inside the room only.
#pragma once

#include "fettle/cutmap/cutmap.h"
#include "fettle/cutmap/model.h"

namespace fettle::cutmap {

// Where the map's moments lie within their acts, the stretches of alike worst outcomes, and how long the run is without
// a way back and without a net. The moments are there, in script order.
void fill_stretches(const Model& model, const forecast::Forecast& forecast, CutMap& map);

}  // namespace fettle::cutmap
