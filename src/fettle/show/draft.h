// A draft of a family file: what was found, what nobody could tell, and what is asked.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/draft_family.h"

namespace fettle::show {

Answer drafted(const workshop::Drafted& drafted);

}  // namespace fettle::show
