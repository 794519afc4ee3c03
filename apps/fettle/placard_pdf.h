// A placard as PDF: the same lines and bars as its SVG, set with Cairo and Pango in DejaVu Sans.
#pragma once

#include <string>

#include "fettle/base/result.h"
#include "fettle/ready/placard.h"

namespace fettle::app {

// The document's bytes; outside_error "pdf-not-made" when Cairo has no memory or no font.
Result<std::string> placard_pdf(const ready::Placard& page);

}  // namespace fettle::app
