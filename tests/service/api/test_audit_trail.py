"""The audit trail over HTTP: read by readers, checked by the administrator."""

from answers import problem
from service_client import ServiceClient


def test_every_fact_has_a_link_and_the_trail_is_intact(service: ServiceClient) -> None:
    service.lot("AUDIT-1")
    links = service.read_all("/v1/audit-trail?limit=3")
    assert [each["position"] for each in links] == [*range(1, len(links) + 1)]
    assert "lot_registrations" in {each["fact_kind"] for each in links}
    report = service.read("/v1/audit-trail/verification")
    assert report["is_intact"]
    assert report["head"] == {"position": len(links), "link": links[-1]["link"]}
    noted = f"position=1&link={links[0]['link']}"
    assert service.read(f"/v1/audit-trail/verification?{noted}")["is_intact"]
    other = service.read(f"/v1/audit-trail/verification?position=1&link={'0' * 64}")
    assert (other["is_intact"], "noted down" in other["difference"]) == (False, True)


def test_half_a_noted_end_is_refused(service: ServiceClient) -> None:
    answer = service.get("/v1/audit-trail/verification?position=1")
    problem(answer, 400, "invalid-request")


def test_a_check_of_everything_is_for_the_administrator(service: ServiceClient) -> None:
    reader = service.with_scopes(["lots.read"])
    assert reader.get("/v1/audit-trail").status_code == 200
    problem(reader.get("/v1/audit-trail/verification"), 403, "not-allowed")
