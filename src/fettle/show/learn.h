// What a run teaches a family file.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/learn_family.h"

namespace fettle::show {

Answer learnt(const workshop::LearntFamily& learnt);

}  // namespace fettle::show
