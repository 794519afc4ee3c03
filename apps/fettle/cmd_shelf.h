// fettle shelf: the shop's library of releases.
#pragma once

#include "context.h"
#include "fettle/workshop/shelf_acts.h"
#include "fettle/workshop/shelf_care.h"

namespace fettle::app {

// A refusal is bad_input (exit 3) whose message names every finding by its code; with --json an answer that lists them
// as reasons (exit 3 all the same).
Result<Answer> shelf_add(const Context& context, const workshop::ShelveRequest& request);
Result<Answer> shelf_list(const Context& context, const workshop::ShelfListRequest& request);

struct ShelfShowOptions {
    workshop::ReleaseRequest ask;
    bool cyclonedx = false;  // the document alone
};
Result<Answer> shelf_show(const Context& context, const ShelfShowOptions& options);

struct ShelfCompareOptions {
    workshop::CompareRequest ask;
    bool all = false;  // --all: name equal files, too
};
Result<Answer> shelf_compare(const Context& context, const ShelfCompareOptions& options);
Result<Answer> shelf_verify(const Context& context, const workshop::ReleaseRequest& request);
Result<Answer> shelf_restore(const Context& context, const workshop::RestoreRequest& request);
Result<Answer> shelf_remove(const Context& context, const workshop::ReleaseRequest& request);
Result<Answer> shelf_tidy(const Context& context);

}  // namespace fettle::app
