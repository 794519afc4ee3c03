#include "cmd_link.h"

#include "fettle/show/link.h"

namespace fettle::app {
namespace {

template <class Request>
Request of_job(const Context& context, Request request) {
    request.job = context.job;
    return request;
}

}  // namespace

Result<Answer> link_find(Context& context, const workshop::FindRequest& typed) {
    const auto found = workshop::find_boxes(context, of_job(context, typed));
    if (!found) return pass(found);
    return show::boxes_found(*found);
}

Result<Answer> link_read(Context& context, const workshop::ReadRequest& typed) {
    const auto read = workshop::read_boxes(context, of_job(context, typed));
    if (!read) return pass(read);
    return show::boxes_read(*read);
}

Result<Answer> link_faults(Context& context, const workshop::MemoryRequest& typed) {
    const auto read = workshop::read_faults(context, of_job(context, typed));
    if (!read) return pass(read);
    return show::memory_read(*read);
}

Result<Answer> link_clear(Context& context, const workshop::ClearRequest& request) {
    const auto cleared = workshop::clear_faults(context, request);
    if (!cleared) return pass(cleared);
    return show::faults_cleared(*cleared, request.allowed_by);
}

}  // namespace fettle::app
