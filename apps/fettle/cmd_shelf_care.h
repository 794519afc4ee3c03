// fettle shelf compare, verify, restore, remove, tidy: what one does with what is on the shelf.
#pragma once

#include <string>

#include "context.h"

namespace fettle::app {

struct ShelfCompareOptions {
    std::string before, after;
    std::string family;  // may be empty when both names are unique
    bool all = false;    // --all: name equal files too
};
Result<Answer> shelf_compare(const Context& context, const ShelfCompareOptions& options);

struct ShelfVerifyOptions {
    std::string release;  // empty: all
    std::string family;
};
Result<Answer> shelf_verify(const Context& context, const ShelfVerifyOptions& options);

struct ShelfRestoreOptions {
    std::string release, folder, family;
};
Result<Answer> shelf_restore(const Context& context, const ShelfRestoreOptions& options);

struct ShelfRemoveOptions {
    std::string release, family;
};
Result<Answer> shelf_remove(const Context& context, const ShelfRemoveOptions& options);

Result<Answer> shelf_tidy(const Context& context);

}  // namespace fettle::app
