// What the gauge found of a card.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/gauge.h"

namespace fettle::show {

Answer gauged(const workshop::GaugedCard& card);

}  // namespace fettle::show
