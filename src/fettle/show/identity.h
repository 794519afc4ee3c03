// Which boxes these are, as a page and as JSON; and a VIN's arithmetic.
#pragma once

#include <boost/json/object.hpp>

#include "fettle/identity/vin.h"
#include "fettle/show/answer.h"
#include "fettle/workshop/identify.h"

namespace fettle::show {

Answer identified(const workshop::Identified& found);
// `family` may be nullptr: not known.
boost::json::object identity_as_json(const identity::Identity& identity, const family::Family* family);
// What is to be asked first where the identity is not certain enough for `what` ("plan").
Answer not_identified(const workshop::Identified& found, const char* headline);

Answer vin(const identity::VinAnswer& answer);

}  // namespace fettle::show
