// What is to be seen at a stand-in, line by line, and what became of its run.
#pragma once

#include <string>

#include "fettle/show/answer.h"
#include "fettle/workshop/stand_in.h"

namespace fettle::show {

std::string doors_as_text(const workshop::StandInDoors& doors);
std::string event_line(const standin::Event& event);
Answer stood_in(const workshop::StoodIn& stood_in);

}  // namespace fettle::show
