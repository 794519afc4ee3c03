// Family files: known ones, one of them, what a file leaves open, and one taken into use.
#pragma once

#include <vector>

#include "fettle/family/family.h"
#include "fettle/show/answer.h"
#include "fettle/workshop/family_acts.h"

namespace fettle::show {

Answer families(const std::vector<family::Family>& known);
Answer family(const family::Family& family);
Answer checked(const workshop::CheckedFamily& checked);
Answer added(const workshop::AddedFamily& added);

// "good", "changed" or "none".
std::string_view code(family::Signed state);

}  // namespace fettle::show
