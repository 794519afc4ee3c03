// Which job on which bench, and in which order.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/order_jobs.h"

namespace fettle::show {

Answer jobs_ordered(const workshop::Ordered& ordered);

}  // namespace fettle::show
