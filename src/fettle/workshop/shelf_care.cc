#include "fettle/workshop/shelf_care.h"

namespace fettle::workshop {

Result<shelf::Compared> compare_releases(const Workshop& shop, const CompareRequest& request) {
    const auto shelf = existing_shelf(shop, request.before);
    if (!shelf) return pass(shelf);
    return shelf->compare(request.family, request.before, request.after);
}

Result<shelf::Verified> verify_shelf(const Workshop& shop, const ReleaseRequest& request) {
    auto shelf = existing_shelf(shop, request.release);
    if (!shelf) return pass(shelf);
    return shelf->verify(request.family, request.release, *shop.clock, shop.progress);
}

Result<shelf::Restored> restore_release(const Workshop& shop, const RestoreRequest& request) {
    const auto shelf = existing_shelf(shop, request.release);
    if (!shelf) return pass(shelf);
    return shelf->restore(request.family, request.release, request.folder, shop.progress);
}

Result<Removed> remove_release(const Workshop& shop, const ReleaseRequest& request) {
    auto shelf = existing_shelf(shop, request.release);
    if (!shelf) return pass(shelf);
    const auto found = shelf->find(request.family, request.release);
    if (!found) return pass(found);
    if (const Status gone = shelf->remove(found->family, found->release.release); !gone) return pass(gone);
    return Removed{found->family, found->release.release};
}

Result<shelf::Tidied> tidy_shelf(const Workshop& shop) {
    auto shelf = existing_shelf(shop, "");
    if (!shelf) return pass(shelf);
    return shelf->tidy(shop.progress);
}

}  // namespace fettle::workshop
