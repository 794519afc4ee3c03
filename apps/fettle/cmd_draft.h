// fettle family draft: a first family file out of packages and labels of a family that nobody has described.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct FamilyDraftOptions {
    std::vector<std::string> packages, plates, views;
    std::string id;                  // --id
    std::string to;                  // --to FILE; empty: standard output
    std::vector<std::string> means;  // --means main.part2=issue, or main.part2=don't know
    bool add = false;                // --add: taken into use here as well, when no family of that id is known
};
// The file on standard output, or written to a file that is not there yet. With --json the document has it as a member.
Result<Answer> family_draft(Context& context, const FamilyDraftOptions& options);

}  // namespace fettle::app
