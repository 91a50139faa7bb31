"""Ways by which one firm might see or touch another."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from tests.isolation import by_address, by_api, by_browser, by_file, by_route, by_sql, by_task
from tests.isolation.world import TwoFirms

WAYS: Final[tuple[Callable[[TwoFirms, object], None], ...]] = (
    by_address.every_address,
    by_address.absent_and_foreign_are_the_same,
    by_address.as_many_queries_for_foreign_as_for_absent,
    by_address.tags_of_a_neighbour,
    by_address.forged_headers,
    by_browser.a_forged_choice_of_firm,
    by_browser.ids_in_every_question,
    by_api.every_address,
    by_api.ids_in_every_filter,
    by_api.ids_in_every_body,
    by_api.keys_and_client_ids,
    by_route.every_route_with_every_id,
    by_route.absent_and_foreign_are_the_same_to_programs,
    by_route.forged_headers_to_programs,
    by_route.words_nobody_asked_for,
    by_file.photos_by_id,
    by_file.photos_by_name,
    by_file.photos_by_content,
    by_file.files_of_firms,
    by_task.every_task_with_foreign_ids,
    by_sql.without_a_firm,
    by_sql.as_the_other_firm,
    by_sql.keys_across_firms,
    by_sql.out_of_the_role,
)
