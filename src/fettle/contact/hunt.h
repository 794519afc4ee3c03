// How are the digests of an index made? Tried on a sample, then the winner over all. Internal to contact/.
#pragma once

#include "fettle/contact/study.h"

namespace fettle::contact {

inline constexpr std::size_t sample_size = 20;

// Fills in digests of every index: which of its fields hold some, and how they are made.
Status hunt_on_sample(shelf::Package& package, std::vector<Index>& indexes);

// The first digest field of the index, over every file that a record names.
Status hunt_over_all(shelf::Package& package, Index& index);

}  // namespace fettle::contact
