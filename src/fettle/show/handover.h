// The sealed sheet: what was made, and what its check found.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/hand_over.h"

namespace fettle::show {

Answer handed_over(const workshop::HandedOver& made);
Answer sheet_checked(const workshop::SheetChecked& checked);

}  // namespace fettle::show
