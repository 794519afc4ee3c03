#include "cmd_family.h"

#include "fettle/base/text.h"
#include "fettle/show/draft.h"
#include "fettle/show/family.h"
#include "fettle/show/family_travel.h"
#include "fettle/show/learn.h"
#include "fettle/workshop/families.h"

namespace fettle::app {

Result<Answer> family_list(const Context& context) {
    const auto all = workshop::load_families(context);
    if (!all) return pass(all);
    return show::families(*all);
}

Result<Answer> family_show(const Context& context, const FamilyShowOptions& options) {
    const auto found = workshop::load_family_by_id(context, options.id);
    if (!found) return pass(found);
    return show::family(*found);
}

Result<Answer> family_check(const Context&, const FamilyCheckOptions& options) {
    const auto checked = workshop::check_family(options.file);
    if (!checked) return pass(checked);
    return show::checked(*checked);
}

Result<Answer> family_add(const Context& context, const workshop::AddFamilyRequest& request) {
    const auto added = workshop::add_family(context, request);
    if (!added) return pass(added);
    return show::added(*added);
}

Result<Answer> family_sign(const Context& context, const workshop::SignFamilyRequest& request) {
    const auto done = workshop::sign_family(context, request);
    if (!done) return pass(done);
    return show::signed_family(*done);
}

Result<Answer> family_import(const Context& context, const workshop::ImportFamilyRequest& request) {
    const auto imported = workshop::import_family(context, request);
    if (!imported) return pass(imported);
    return show::imported(*imported);
}

Result<Answer> family_learn(const Context& context, const workshop::LearnRequest& typed) {
    auto request = typed;
    request.job = context.job;
    const auto learnt = workshop::learn_family(context, request);
    if (!learnt) return pass(learnt);
    return show::learnt(*learnt);
}

Result<Answer> family_draft(const Context& context, const FamilyDraftOptions& options) {
    workshop::DraftRequest request = options.ask;
    for (const std::string& m : options.means) {
        const std::size_t eq = m.find('=');
        if (eq == std::string::npos || eq == 0 || eq + 1 == m.size())
            return usage_error("draft-means", printable(m), "is no PART=MEANING",
                               "say for example --means main.part2=issue, or \"main.part2=don't know\"");
        request.means[m.substr(0, eq)] = m.substr(eq + 1);
    }
    const auto drafted = workshop::draft_family(context, request);
    if (!drafted) return pass(drafted);
    Answer a = show::drafted(*drafted);
    if (request.to.empty() && !request.add && !context.json) a.document = drafted->draft.toml;
    return a;
}

}  // namespace fettle::app
