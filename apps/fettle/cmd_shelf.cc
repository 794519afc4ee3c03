#include "cmd_shelf.h"

#include "fettle/show/shelf.h"
#include "fettle/show/shelf_care.h"

namespace fettle::app {

Result<Answer> shelf_add(const Context& context, const workshop::ShelveRequest& request) {
    const auto shelving = workshop::shelve(context, request);
    if (!shelving) return pass(shelving);
    // A person gets one message with every finding; a program gets the findings one by one.
    if (shelving->refused && !context.json) return tl::unexpected(*shelving->refused);
    return show::shelved(*shelving);
}

Result<Answer> shelf_list(const Context& context, const workshop::ShelfListRequest& request) {
    const auto list = workshop::list_shelf(context, request);
    if (!list) return pass(list);
    return show::shelf_list(*list);
}

Result<Answer> shelf_show(const Context& context, const ShelfShowOptions& options) {
    if (options.cyclonedx) {
        auto document = workshop::release_inventory(context, options.ask, FETTLE_VERSION);
        if (!document) return pass(document);
        Answer a;
        a.verdict_matters = false;
        a.document = std::move(*document);
        return a;
    }
    const auto shown = workshop::show_release(context, options.ask);
    if (!shown) return pass(shown);
    return show::release(*shown);
}

Result<Answer> shelf_compare(const Context& context, const ShelfCompareOptions& options) {
    const auto compared = workshop::compare_releases(context, options.ask);
    if (!compared) return pass(compared);
    return show::compared(*compared, options.ask, options.all);
}

Result<Answer> shelf_verify(const Context& context, const workshop::ReleaseRequest& request) {
    const auto verified = workshop::verify_shelf(context, request);
    if (!verified) return pass(verified);
    return show::verified(*verified);
}

Result<Answer> shelf_restore(const Context& context, const workshop::RestoreRequest& request) {
    const auto restored = workshop::restore_release(context, request);
    if (!restored) return pass(restored);
    return show::restored(*restored, request);
}

Result<Answer> shelf_remove(const Context& context, const workshop::ReleaseRequest& request) {
    const auto removed = workshop::remove_release(context, request);
    if (!removed) return pass(removed);
    return show::removed(*removed);
}

Result<Answer> shelf_tidy(const Context& context) {
    const auto tidied = workshop::tidy_shelf(context);
    if (!tidied) return pass(tidied);
    return show::tidied(*tidied);
}

}  // namespace fettle::app
