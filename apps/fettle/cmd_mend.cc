#include "cmd_mend.h"

#include "fettle/show/mend.h"

namespace fettle::app {

Result<Answer> mend_job(Context& context, const workshop::MendRequest& request) {
    const auto mended = workshop::mend_job(context, request);
    if (!mended) return pass(mended);
    return show::mended(*mended);
}

}  // namespace fettle::app
