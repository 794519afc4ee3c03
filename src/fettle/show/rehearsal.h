// A rehearsal: what it tells while it goes on, and what came of it.
#pragma once

#include <string>
#include <vector>

#include "fettle/rehearse/rehearse.h"
#include "fettle/show/answer.h"

namespace fettle::show {

// The answer of the act that was done, as the act alone would be shown.
Answer done(const rehearse::Outcome& outcome, const ShowAct& shown);

// The rest of what is told, for a page of 80 columns and with a blank line before it. Empty for an act, and for a look
// at the run, which is a picture.
std::string told(const rehearse::Told& told);
// Lines of the picture of a look at the run.
std::vector<std::string> picture(const rehearse::Looked& look, bool ascii);

Answer rehearsed(const rehearse::Rehearsed& r);

}  // namespace fettle::show
