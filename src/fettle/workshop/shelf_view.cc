#include "fettle/workshop/shelf_view.h"

#include <system_error>

#include "fettle/shelf/shelf.h"

namespace fettle::workshop {

Result<ShelfView> shelf_view(const Workshop& shop, const std::string& family) {
    ShelfView view;
    std::error_code ignored;
    if (!std::filesystem::exists(shop.shelf_folder(), ignored)) return view;
    auto shelf = shelf::Shelf::open(shop.shelf_folder());
    if (!shelf) return pass(shelf);
    auto all = shelf->list(family);
    if (!all) return pass(all);
    for (auto& s : *all) {
        view.right_known[s.release.release] = s.slip.right != shelf::Right::unknown;
        view.releases.push_back(std::move(s.release));
    }
    auto as_of = shelf->as_of(family);
    if (!as_of) return pass(as_of);
    if (as_of->newest > 0) view.as_of = iso8601(as_of->newest).substr(0, 10);
    return view;
}

}  // namespace fettle::workshop
