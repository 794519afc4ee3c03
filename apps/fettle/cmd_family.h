// fettle family list, show, check, add.
#pragma once

#include <string>

#include "context.h"

namespace fettle::app {

Result<Answer> family_list(Context& context);

struct FamilyShowOptions {
    std::string id;
};
Result<Answer> family_show(Context& context, const FamilyShowOptions& options);

struct FamilyCheckOptions {
    std::string file;
};
// Every mistake by line and key (then exit 3), and what the file leaves open.
Result<Answer> family_check(Context& context, const FamilyCheckOptions& options);

struct FamilyAddOptions {
    std::string file;
    std::string accept_loosening_by;  // --accept-loosening-by NAME
};
// Copies a checked file into HOME/families/ID.toml, whole or not at all. A file that loosens the one in use under that
// id is refused unless somebody accepts it by name; the acceptance is kept beside it in ID.accepted.jsonl.
Result<Answer> family_add(Context& context, const FamilyAddOptions& options);

}  // namespace fettle::app
