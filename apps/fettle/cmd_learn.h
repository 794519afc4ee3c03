// fettle family learn: what a watched run teaches a family file.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct FamilyLearnOptions {
    std::string file;                 // the family file; the job is the one of --job
    int run = 0;                      // --run N, 1-based; 0: the last that ended
    std::vector<std::string> accept;  // --accept N or N-M, more than one, or all
    std::string allowed_by;           // --allowed-by NAME
};
// Lists what the run teaches, line by line. Writes only the accepted lines, whole or not at all; what loosens the file
// is refused without a name. The file in use here is never written: it is copied, learnt into, and added.
Result<Answer> family_learn(Context& context, const FamilyLearnOptions& options);

}  // namespace fettle::app
