create table if not exists account (
    person text primary key, salt blob not null, hash blob not null,
    role text not null, since real not null
) strict;
create table if not exists session (
    token blob primary key, person text not null, begun real not null, seen real not null
) strict;
create table if not exists admission (
    code blob primary key, person text not null, role text not null, expires real not null
) strict;
