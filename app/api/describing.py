"""The application in OpenAPI 3.1: what each route takes, answers and refuses, as its declaration tells.

FastAPI describes parameters and answers. Bodies, keys and problems are read off the dependencies that a route
declares, so a router says nothing twice; and every schema is written as contracts are elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Literal

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel, TypeAdapter

from app.api import conditions, idempotency
from app.api.bodies import JSON
from app.api.problems import (
    CONFLICT,
    FIELDS,
    INTERNAL,
    KEY_REUSED,
    MALFORMED,
    MEDIA_TYPE,
    NO_KEY,
    NOT_FOUND,
    ROLE,
    TOO_LARGE,
    TOO_MANY,
    UNAVAILABLE,
    UNCONDITIONAL,
    VERSION,
    Kind,
    Problem,
    described,
)
from app.api.routes import Declaration
from app.contracts.base import PlainSchema

_REF = "#/components/schemas/{model}"
KEY_SCHEME = "key"

Schemas = dict[str, Any]

NOTHING: Mapping[str, type[BaseModel]] = MappingProxyType({})


def describe(
    app: FastAPI,
    declared: Iterable[Declaration],
    tags: Sequence[Mapping[str, str]] = (),
    messages: Mapping[str, type[BaseModel]] = NOTHING,
) -> dict[str, Any]:
    """The OpenAPI document of an application with some routes, and with messages that it posts itself."""
    routes = [one for one in declared if one.route.include_in_schema]
    document = get_openapi(
        title=app.title,
        version=app.version,
        summary=app.summary,
        description=app.description,
        license_info=app.license_info,
        routes=[one.route for one in routes],
        tags=[dict(tag) for tag in tags] or None,
    )
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    _write_plainly(schemas, routes, messages.values())
    input_names = _add_inputs(schemas, [route.body.contract for route in routes if route.body])
    for route in routes:
        for method in route.methods:
            _describe_route(document["paths"][route.path][method.lower()], route, input_names)
    if messages:
        document["webhooks"] = {name: _message(contract) for name, contract in messages.items()}
    document["components"]["securitySchemes"] = {
        KEY_SCHEME: {
            "type": "http",
            "scheme": "bearer",
            "bearerFormat": "rw_<public id>_<secret>",
            "description": "A key of the plant, made with `runwright keys create`.",
        }
    }
    names = _plain_names(schemas)
    document["components"]["schemas"] = {names.get(name, name): schemas[name] for name in sorted(schemas)}
    for name, schema in document["components"]["schemas"].items():
        # Who makes classes of schemas calls them by their titles: those of a body and an answer must differ.
        if "title" in schema:
            schema["title"] = name
    told: dict[str, Any] = _renamed(document, names)
    return told


def _message(contract: type[BaseModel]) -> dict[str, Any]:
    """A message as those who get it see it."""
    schema = {"$ref": _REF.format(model=_schema_name(contract))}
    headers = {
        "webhook-id": "The message's id: the same whenever it comes again.",
        "webhook-timestamp": "When it was sent, in whole seconds since 1970.",
        "webhook-signature": "Signatures after the Standard Webhooks specification.",
    }
    return {
        "post": {
            "parameters": [
                {"name": name, "in": "header", "required": True, "description": told, **_TEXT_HEADER}
                for name, told in headers.items()
            ],
            "requestBody": {"required": True, "content": {JSON: {"schema": schema}}},
            "responses": {
                "2XX": {"description": "It has come. Any other answer, or none, and it comes again."}
            },
        }
    }


def _schema_name(contract: type[BaseModel]) -> str:
    """What pydantic calls a generic contract with its content: Bulk_PostedDie_."""
    return re.sub(r"[^\w.-]", "_", contract.__name__)


def _plain_names(schemas: Schemas) -> dict[str, str]:
    """Names for what pydantic calls `Page_Stored_Job__`: PageStoredJob, which any language takes.

    Contracts of one name it calls by their modules too: `app__contracts__plant__Shift`, here PlantShift.
    """
    names = {name: _plain_name(name) for name in schemas if "_" in name}
    return {name: plain for name, plain in names.items() if plain not in schemas}


def _plain_name(name: str) -> str:
    _, _, own = name.rpartition("app__contracts__")
    module, _, contract = own.rpartition("__") if own != name else ("", "", name)
    return module.title().replace("_", "") + contract.replace("_", "")


def _describe_route(operation: dict[str, Any], route: Declaration, input_names: Mapping[str, str]) -> None:
    for parameter in operation.get("parameters", ()):
        _describe_parameter(parameter)
    answers = operation["responses"]
    if "HTTPValidationError" in str(answers.get("422", "")):
        del answers["422"]
    if route.access is not None:
        operation["security"] = [{KEY_SCHEME: []}]
        needed = " or ".join(f"`{role.value}`" for role in route.access.roles)
        operation["description"] = f"{operation.get('description', '')}\n\nNeeds the role {needed}.".strip()
    if route.body is not None:
        operation["requestBody"] = _request_body(route, input_names)
    for status, answer in described(_kinds(route, operation)).items():
        answers.setdefault(status, answer)
    lists = any(parameter["name"] == "cursor" for parameter in operation.get("parameters", ()))
    _describe_headers(answers, route, lists)
    operation["responses"] = dict(sorted(answers.items()))


def _describe_parameter(parameter: dict[str, Any]) -> None:
    """A parameter that may be left out is not null: nothing in an address or a header can be."""
    schema = parameter["schema"]
    schema.pop("title", None)
    schema.pop("description", None)
    kinds = [kind for kind in schema.get("anyOf", ()) if kind != {"type": "null"}]
    if len(kinds) == 1:
        del schema["anyOf"]
        schema |= kinds[0]
    if schema.get("default", ...) is None:
        del schema["default"]


def _request_body(route: Declaration, input_names: Mapping[str, str]) -> dict[str, Any]:
    body = route.body
    if body is None:
        raise ValueError("a route without a body has none to describe")
    name = _schema_name(body.contract)
    content: dict[str, Any] = {"schema": {"$ref": _REF.format(model=input_names.get(name, name))}}
    if body.examples:
        content["examples"] = {example: {"value": value} for example, value in body.examples.items()}
    return {"required": True, "content": {JSON: content}}


def _kinds(route: Declaration, operation: Mapping[str, Any]) -> Iterable[Kind]:
    """Problems that follow from what a route declares."""
    yield from (TOO_MANY, INTERNAL, UNAVAILABLE)
    if route.access is not None:
        yield from (NO_KEY, ROLE)
    places = {parameter["in"] for parameter in operation.get("parameters", ())}
    if "path" in places:
        yield NOT_FOUND
    if places:
        yield FIELDS
    if route.takes_body:
        yield from (MALFORMED, TOO_LARGE, MEDIA_TYPE, FIELDS, CONFLICT)
    if _depends(route, conditions.condition_of_change()):
        yield from (MALFORMED, VERSION, UNCONDITIONAL, CONFLICT)
    if _depends(route, conditions.condition_of_reading()):
        yield MALFORMED
    if _depends(route, idempotency.repeatable()):
        yield from (MALFORMED, KEY_REUSED, CONFLICT)


def _depends(route: Declaration, dependency: Any) -> bool:
    return dependency.dependency in route.calls


_TEXT_HEADER = {"schema": {"type": "string"}}


def _describe_headers(answers: dict[str, Any], route: Declaration, lists: bool) -> None:
    reads = _depends(route, conditions.condition_of_reading())
    if reads:
        answers["304"] = {"description": "Who asked has this version already."}
    for status, answer in answers.items():
        headers = answer.setdefault("headers", {})
        headers["X-Request-Id"] = {"description": "The request's id.", **_TEXT_HEADER}
        if status in ("429", "503"):
            headers["Retry-After"] = {"description": "After how many seconds to ask again.", **_TEXT_HEADER}
        if status == "401":
            headers["WWW-Authenticate"] = {"description": "Which key is needed.", **_TEXT_HEADER}
        if status.startswith(("2", "3")) and (reads or _depends(route, conditions.condition_of_change())):
            headers["ETag"] = {"description": "The version, for If-Match.", **_TEXT_HEADER}
        if status.startswith("2") and lists:
            headers["Link"] = {"description": "The next page, if there is one.", **_TEXT_HEADER}


def _write_plainly(
    schemas: Schemas, routes: Iterable[Declaration], messages: Iterable[type[BaseModel]]
) -> None:
    """Write answers' and messages' schemas as contracts are: numbers as numbers, and no titles that repeat
    names.
    """
    beside: list[type[BaseModel]] = [Problem, *messages]
    answered: list[Any] = [*beside]
    for route in routes:
        fields = (route.route.response_field, *route.route.response_fields.values())
        answered += [field.field_info.annotation for field in fields if field is not None]
    plain = _schemas(answered, "serialization")
    added = _reached(plain, map(_schema_name, beside))
    schemas |= {name: schema for name, schema in plain.items() if name in schemas or name in added}


def _reached(schemas: Schemas, names: Iterable[str]) -> set[str]:
    """These schemas, and all that they refer to."""
    found, left = set[str](), list(names)
    while left:
        name = left.pop()
        if name not in found:
            found.add(name)
            left += [other for other in schemas if _refers(schemas[name], {other})]
    return found


def _add_inputs(schemas: Schemas, bodies: Sequence[type[BaseModel]]) -> dict[str, str]:
    """Add bodies' schemas; one that reads otherwise than what is answered has `Input` behind its name."""
    inputs = _schemas(bodies, "validation")
    changed = {name for name, schema in inputs.items() if name in schemas and schemas[name] != schema}
    while True:
        more = {
            name for name, schema in inputs.items() if name in schemas and _refers(schema, changed)
        } - changed
        if not more:
            break
        changed |= more
    names = {name: f"{name}Input" for name in changed}
    for name, schema in inputs.items():
        schemas[names.get(name, name)] = _renamed(schema, names)
    return names


def _schemas(types: Iterable[Any], mode: Literal["validation", "serialization"]) -> Schemas:
    unique = list({str(one): one for one in types}.values())
    adapters = [(str(idx), mode, TypeAdapter(one)) for idx, one in enumerate(unique)]
    _, told = TypeAdapter.json_schemas(adapters, ref_template=_REF, schema_generator=PlainSchema)
    found: Schemas = told.get("$defs", {})
    return found


_REF_NAME = re.compile(r"#/components/schemas/(.+)")


def _refers(schema: Any, names: set[str]) -> bool:
    match schema:
        case {"$ref": str(ref)} if (match := _REF_NAME.fullmatch(ref)) and match[1] in names:
            return True
        case dict():
            return any(_refers(value, names) for value in schema.values())
        case list():
            return any(_refers(value, names) for value in schema)
        case _:
            return False


def _renamed(schema: Any, names: Mapping[str, str]) -> Any:
    match schema:
        case dict():
            return {name: _renamed_ref(name, value, names) for name, value in schema.items()}
        case list():
            return [_renamed(value, names) for value in schema]
        case _:
            return schema


def _renamed_ref(name: str, value: Any, names: Mapping[str, str]) -> Any:
    if name == "$ref" and isinstance(value, str) and (match := _REF_NAME.fullmatch(value)):
        return _REF.format(model=names.get(match[1], match[1]))
    if name == "mapping" and isinstance(value, dict):
        return {kind: _renamed_ref("$ref", ref, names) for kind, ref in value.items()}
    return _renamed(value, names)
