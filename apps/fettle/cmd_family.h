// fettle family: what is known of boxes that take the same releases.
#pragma once

#include <string>
#include <vector>

#include "context.h"
#include "fettle/workshop/draft_family.h"
#include "fettle/workshop/family_acts.h"
#include "fettle/workshop/family_travel.h"
#include "fettle/workshop/learn_family.h"

namespace fettle::app {

Result<Answer> family_list(const Context& context);

struct FamilyShowOptions {
    std::string id;
};
Result<Answer> family_show(const Context& context, const FamilyShowOptions& options);

struct FamilyCheckOptions {
    std::string file;
};
Result<Answer> family_check(const Context& context, const FamilyCheckOptions& options);

Result<Answer> family_add(const Context& context, const workshop::AddFamilyRequest& request);
Result<Answer> family_sign(const Context& context, const workshop::SignFamilyRequest& request);
Result<Answer> family_import(const Context& context, const workshop::ImportFamilyRequest& request);
Result<Answer> family_learn(const Context& context, const workshop::LearnRequest& request);  // the job is --job's

struct FamilyDraftOptions {
    workshop::DraftRequest ask;
    std::vector<std::string> means;  // --means main.part2=issue, or main.part2=don't know
};
// The file on standard output, unless it is written or taken into use. With --json the document has it as a member.
Result<Answer> family_draft(const Context& context, const FamilyDraftOptions& options);

}  // namespace fettle::app
