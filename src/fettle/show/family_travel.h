// A family file that was signed, and one that came from elsewhere.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/family_travel.h"

namespace fettle::show {

Answer signed_family(const workshop::SignedFamily& s);
Answer imported(const workshop::ImportedFamily& imported);

}  // namespace fettle::show
